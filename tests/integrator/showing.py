"""A client of the kit as a process of its own, and what it shows by topic below the bay."""

import os
import subprocess
import threading

PATIENCE_S = 20.0


class Showing:
    """What one process shows: the last line of ``topic``, or of each topic that its lines name."""

    def __init__(self, words, topic=None, env=None):
        self.topic, self.last, self.news = topic, {}, threading.Condition()
        self._process = subprocess.Popen(
            [str(word) for word in words],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            env=env or dict(os.environ),
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self):
        for line in self._process.stdout:
            topic, text = self.topic, line.strip()
            if topic is None:
                topic, _, text = text.partition(": ")
            with self.news:
                self.last[topic] = text
                self.news.notify_all()

    def wait(self, topic, text):
        """Wait until it shows this."""
        with self.news:
            there = self.news.wait_for(lambda: self.last.get(topic) == text, PATIENCE_S)
            assert there, f"{self._process.args}: {topic} is {self.last.get(topic)!r}, not {text!r}"

    def stop(self):
        self._process.terminate()
        try:
            self._process.wait(5)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._reader.join(5)
        self._process.stdout.close()
