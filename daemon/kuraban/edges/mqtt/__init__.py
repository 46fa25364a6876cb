"""The broker: readings and entries in, alarm states out. The only place that knows paho."""
