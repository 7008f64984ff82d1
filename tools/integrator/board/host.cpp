// The small board's reader on a computer: ./host HOST PORT TOPIC prints a line whenever what is
// shown changes. TOPIC is whole, such as levelhead/v1/sim-replay/val/axle/1/left/camber.
#include <errno.h>
#include <netdb.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include "plain_value.hpp"

namespace {

class Socket {
 public:
  bool open(const char* host, const char* port) {
    shut();
    addrinfo hints = {};
    hints.ai_socktype = SOCK_STREAM;
    addrinfo* found = nullptr;
    if (getaddrinfo(host, port, &hints, &found) != 0) return false;
    handle_ = socket(found->ai_family, found->ai_socktype, found->ai_protocol);
    const bool open = handle_ >= 0 && connect(handle_, found->ai_addr, found->ai_addrlen) == 0;
    freeaddrinfo(found);
    if (!open) shut();
    return open;
  }
  void shut() {
    if (handle_ >= 0) close(handle_);
    handle_ = -1;
  }
  int read(uint8_t* into, size_t most) {
    const ssize_t count = recv(handle_, into, most, MSG_DONTWAIT);
    if (count > 0) return int(count);
    return count < 0 && (errno == EAGAIN || errno == EINTR) ? 0 : -1;
  }
  bool write(const uint8_t* from, size_t count) {
    return send(handle_, from, count, MSG_NOSIGNAL) == ssize_t(count);
  }

 private:
  int handle_ = -1;
};

uint32_t now_ms() {
  timespec now = {};
  clock_gettime(CLOCK_MONOTONIC, &now);
  return uint32_t(now.tv_sec) * 1000u + uint32_t(now.tv_nsec / 1000000);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 4) {
    fprintf(stderr, "usage: host HOST PORT TOPIC\n");
    return 2;
  }
  char id[24], line[96], shown[96] = "";
  snprintf(id, sizeof id, "board-%ld", long(getpid()));
  Socket wire;
  levelhead::PlainValue value;
  levelhead::Reader<Socket> reader(wire, id, argv[3]);
  bool there = false;
  uint32_t tried_ms = now_ms() - 1000u;
  for (;;) {
    if (!there && now_ms() - tried_ms >= 1000u) {
      tried_ms = now_ms();
      value.lose();
      there = wire.open(argv[1], argv[2]) && reader.begin(now_ms());
    }
    if (there) there = reader.turn(now_ms(), value);
    value.show(line, sizeof line, now_ms(), there && reader.served());
    if (strcmp(line, shown) != 0) {
      strcpy(shown, line);
      printf("%s\n", line);
      fflush(stdout);
    }
    usleep(20000);
  }
}
