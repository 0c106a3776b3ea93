"""The technician's day as one answer: everything a device needs to work, and judge, with no signal."""
