"""Runs a program; prints its wall clock in s, its processor time in s and its largest memory in MiB."""

import os
import subprocess
import sys
import time

begin = time.perf_counter()
process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
_, status, usage = os.wait4(process.pid, 0)
wall_s = time.perf_counter() - begin
print(wall_s, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)
sys.exit(os.waitstatus_to_exitcode(status))
