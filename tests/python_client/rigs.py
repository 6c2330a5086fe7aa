"""The fictional venue of these tests."""

DELAY_MS = 3.125

IN_VIRTUAL_TIME = f"""
site = "script"
[interface]
backend = "simulated"
time = "virtual"
rate = 48000
[reference]
send = 3
return = 3
[[link]]
name = "lectern"
send = 1
return = 1
[link.setup]
channel = "2"
[link.simulated]
delay_ms = {DELAY_MS}
hard_clip_dbfs = -4.0
[[link]]
name = "foyer"
send = 2
return = 2
[link.simulated]
delay_ms = 5.0
[[limit]]
link = "lectern"
analysis = "latency"
figure = "latency"
max = 10.0
[[round]]
name = "nightly"
checks = ["latency"]
"""

IN_REAL_TIME = IN_VIRTUAL_TIME.replace('"virtual"', '"real"')
