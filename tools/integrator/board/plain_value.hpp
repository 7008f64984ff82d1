// Shows one value of a bay on a small board: a reader of MQTT 3.1.1 and of the plain mirror.
//
// C++11, no heap, no exceptions. `Wire` is whatever moves bytes: it has connected(), read(buffer,
// most) giving how many came (0: none now, below 0: gone) and write(bytes, length) giving whether all
// went. An Arduino network client is wrapped in ten lines; host.cpp has one of POSIX sockets.
//
// A packet that does not fit is passed over and counted, never cut. Time is handed in as
// milliseconds of any counter that may wrap.
#pragma once

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

namespace levelhead {

constexpr uint32_t KNOWN_FOR_MS = 3000;  // the bay says each line again every second
constexpr uint32_t PING_MS = 2000;
constexpr uint32_t GONE_MS = 6000;  // not even a ping was answered

// What a line of the plain mirror says, and whether it may be shown.
class PlainValue {
 public:
  void take(const char* line, size_t length, uint32_t now_ms) {
    char text[65];
    const size_t kept = length < sizeof text ? length : 0;  // longer ones are none of ours
    memcpy(text, line, kept);
    text[kept] = '\0';
    const int found = sscanf(text, "%12s %12s %7s %10s %10s", value_, u_, unit_, word_, quality_);
    heard_ = true;
    good_ = found == 5 && value_[0] != '\0' && strcmp(value_, "-") != 0 &&
            (strcmp(quality_, "good") == 0 || strcmp(quality_, "uncertain") == 0);
    if (found != 5) strcpy(quality_, "unreadable");
    if (found < 3) unit_[0] = '\0';
    at_ms_ = now_ms;
  }

  void lose() { heard_ = false; }

  // Writes what a person may be shown; `connected`: whether there is a broker.
  void show(char* out, size_t size, uint32_t now_ms, bool connected) const {
    const char* why = nullptr;
    if (!connected) why = "no broker";
    else if (!heard_) why = "nothing yet";
    else if (now_ms - at_ms_ > KNOWN_FOR_MS) why = "nothing new";
    if (why != nullptr) {
      snprintf(out, size, "- NO DATA, %s", why);
    } else if (!good_) {
      snprintf(out, size, "- %s%sNO DATA, %s", unit_, unit_[0] ? " " : "", quality_);
    } else {
      const char* doubt = strcmp(quality_, "uncertain") == 0 ? ", uncertain" : "";
      const char* u = strcmp(u_, "-") == 0 ? "?" : u_;
      snprintf(out, size, "%s +/- %s %s %s%s", value_, u, unit_, word(), doubt);
    }
  }

 private:
  const char* word() const {
    if (strcmp(word_, "inside") == 0) return "INSIDE";
    if (strcmp(word_, "undecided") == 0) return "UNDECIDED";
    if (strcmp(word_, "outside") == 0) return "OUTSIDE";
    return "NOT JUDGED";  // none, and any word that we do not know
  }

  char value_[13] = "", u_[13] = "", unit_[8] = "", word_[11] = "", quality_[11] = "";
  uint32_t at_ms_ = 0;
  bool heard_ = false, good_ = false;
};

// Reads one topic at QoS 0. `Size` bounds a whole packet, header and topic included.
template <class Wire, size_t Size = 256>
class Reader {
 public:
  Reader(Wire& wire, const char* client_id, const char* topic, const char* user = nullptr,
         const char* password = nullptr)
      : wire_(wire), id_(client_id), topic_(topic), user_(user), password_(password) {}

  uint32_t passed_over = 0;  // packets that did not fit

  bool served() const { return served_; }

  // Says hello over a wire that is connected. False: it does not fit, or the wire is gone.
  bool begin(uint32_t now_ms) {
    served_ = false;
    got_ = need_ = skip_ = 0;
    heard_ms_ = pinged_ms_ = now_ms;
    size_t at = start(0x10);
    at = text(at, "MQTT");
    const uint8_t flags = user_ ? 0xC2 : 0x02;
    const uint8_t rest[] = {4, flags, 0, 10};  // 3.1.1; keep alive 10 s
    at = bytes(at, rest, sizeof rest);
    at = text(at, id_);
    if (user_) at = text(text(at, user_), password_ ? password_ : "");
    return finish(at);
  }

  // Reads what there is; false when the connection is to be made anew.
  bool turn(uint32_t now_ms, PlainValue& value) {
    uint8_t chunk[64];
    for (;;) {
      const int count = wire_.read(chunk, sizeof chunk);
      if (count < 0) return false;
      if (count == 0) break;
      heard_ms_ = now_ms;
      for (int i = 0; i < count; ++i)
        if (!byte(chunk[i], now_ms, value)) return false;
    }
    if (now_ms - heard_ms_ > GONE_MS) return false;
    if (served_ && now_ms - pinged_ms_ > PING_MS) {
      pinged_ms_ = now_ms;
      const uint8_t ping[] = {0xC0, 0};
      return wire_.write(ping, sizeof ping);
    }
    return true;
  }

 private:
  // Takes a byte of the stream; `got_` counts those of the present packet that are kept.
  bool byte(uint8_t b, uint32_t now_ms, PlainValue& value) {
    if (skip_ > 0) {
      --skip_;
      return true;
    }
    in_[got_++] = b;
    if (need_ == 0) return header();
    return got_ < need_ ? true : packet(now_ms, value);
  }

  bool header() {
    if (got_ < 2 || (in_[got_ - 1] & 0x80)) return got_ < 5;  // a length has four bytes at most
    uint32_t length = 0;
    for (size_t i = got_ - 1; i >= 1; --i) length = (length << 7) | (in_[i] & 0x7Fu);
    body_ = got_;
    need_ = got_ + length;
    if (need_ > Size) {
      ++passed_over;
      skip_ = length;
      got_ = need_ = 0;
    } else if (length == 0) {
      got_ = need_ = 0;  // the answer to a ping
    }
    return true;
  }

  bool packet(uint32_t now_ms, PlainValue& value) {
    const uint8_t* body = in_ + body_;
    const size_t length = need_ - body_;
    const uint8_t kind = in_[0] >> 4;
    got_ = need_ = 0;
    if (kind == 2) {  // CONNACK
      if (length != 2 || body[1] != 0) return false;
      size_t at = start(0x82);
      const uint8_t id[] = {0, 1}, qos[] = {0};
      at = text(bytes(at, id, sizeof id), topic_);
      served_ = finish(bytes(at, qos, sizeof qos));
      return served_;
    }
    if (kind == 3 && length >= 2) {  // PUBLISH at QoS 0
      const size_t name = (size_t(body[0]) << 8 | body[1]) + 2;
      const bool mine = name <= length && name - 2 == strlen(topic_) &&
                        memcmp(body + 2, topic_, name - 2) == 0;
      if (mine) value.take(reinterpret_cast<const char*>(body + name), length - name, now_ms);
    }
    return true;
  }

  // Packets that we send have less than 128 bytes, so that their length is one byte.
  size_t start(uint8_t kind) {
    out_[0] = kind;
    return 2;
  }
  size_t bytes(size_t at, const uint8_t* from, size_t count) {
    if (at + count > sizeof out_) return sizeof out_ + 1;
    memcpy(out_ + at, from, count);
    return at + count;
  }
  size_t text(size_t at, const char* words) {
    const size_t count = strlen(words);
    const uint8_t length[] = {uint8_t(count >> 8), uint8_t(count & 0xFF)};
    return bytes(bytes(at, length, 2), reinterpret_cast<const uint8_t*>(words), count);
  }
  bool finish(size_t at) {
    if (at > sizeof out_) return false;
    out_[1] = uint8_t(at - 2);
    return wire_.write(out_, at);
  }

  Wire& wire_;
  const char *id_, *topic_, *user_, *password_;
  uint8_t in_[Size], out_[129];
  size_t got_ = 0, need_ = 0, body_ = 0, skip_ = 0;
  uint32_t heard_ms_ = 0, pinged_ms_ = 0;
  bool served_ = false;
};

}  // namespace levelhead
