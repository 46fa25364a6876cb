"""One cooler or heater: called for or not, running or not, and what comes out."""
