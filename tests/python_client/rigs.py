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
[radio]
occupied = ["1 20 office", "6 20"]
[[channel_table]]
name = "belt"
radiated_dbm = 10
needed_dbm = -84
[[channel_table.channel]]
name = "2"
centre_mhz = 2424
bandwidth_mhz = 2
[[channel_table.channel]]
name = "3"
centre_mhz = 2450
bandwidth_mhz = 2
[[link]]
name = "lectern"
send = 1
return = 1
channel_table = "belt"
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
