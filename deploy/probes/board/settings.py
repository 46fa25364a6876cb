# What this board is told. Change it, and lay it beside main.py on the board.

# Name of the network and its password; None where the board is wired.
WIFI = ("cellar", "its password")
# The broker; an address rather than a name, so that nothing must be looked up.
BROKER = "192.168.1.10"
PORT = 8883
# Certificate (DER) of whoever vouches for the broker; None without TLS, with PORT = 1883.
CA = "ca.der"
# This board's own user at the broker.
USER = "board-cellar"
PASSWORD = "its password"
ROOT = "kura"
# Who tells the time (NTP); None where nobody does: see README.md.
NTP = "192.168.1.10"
# Seconds between two readings of a probe.
EVERY = 60
# Readings that are kept while the broker is away; 10000 take some 500 KB.
KEEP = 10000

# Digital 1-wire probes by pin: number of the probe, and its id in the watch's site file. The
# numbers are shown on the serial line when the board starts.
ONE_WIRE = {4: {"28-0316a2794f1e": "t3-mid", "28-0416b3805a2d": "t4-mid"}}

# Pt100 probes by id, each with a converter of its own on one SPI bus: pin of its chip select, wires
# of the probe (2, 3, 4), the converter's reference resistor in ohm, such as
# {"st1-mid": {"cs": 5, "wires": 3, "reference": 430.0}}
SPI = {"id": 1, "sck": 18, "mosi": 23, "miso": 19}
PT100 = {}
