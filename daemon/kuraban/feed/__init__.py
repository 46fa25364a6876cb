"""The feed: reads buses and publishes their values to the broker, on any board, without a watch.

What may enter: the numbers of one bus, the threads that read them, the way to the broker. It knows
nothing of places, batches or alarms, and never judges a value. It runs on a board of 64 MB, so it
imports no more than it needs.
"""
