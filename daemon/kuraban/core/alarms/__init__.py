"""Alarms from finding to standing: the life-cycle table, what explains what."""
