"""What is told while a part of the run lasts long."""

import threading
import time


class Progress:
    """Tells, by a line each, that another tenth of so many tasks is done."""

    def __init__(self, tasks, what):
        self.tasks, self.what = tasks, what
        self.done = 0
        self.lock = threading.Lock()
        self.begin = time.monotonic()

    def add(self):
        with self.lock:
            before, self.done = self.done, self.done + 1
            if 10 * before // self.tasks != 10 * self.done // self.tasks:
                spent = time.monotonic() - self.begin
                print(f"  {self.done} of {self.tasks} {self.what}, {spent:.0f} s", flush=True)
