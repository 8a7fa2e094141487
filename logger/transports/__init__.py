"""Transports: how bytes come from a device, and devices that this machine simulates.

Read `serial`.  May import `formats` and what lies below it.
"""
