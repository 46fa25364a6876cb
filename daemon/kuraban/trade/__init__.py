"""The brewery's arithmetic: pure numbers in, pure numbers out.

Nothing in here reads a clock, a file or the environment, logs, or draws random numbers, and
nothing needs more than the standard library. Temperatures are °C, masses kg, volumes litres,
pressures Pa; every public function says the shape, unit, range, error and source of what it
computes, and raises `kuraban.errors.OutOfRange` for an argument beyond its range.
"""
