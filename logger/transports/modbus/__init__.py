"""Modbus: registers of devices on a serial bus or over TCP.

Read `transport` (which registers are asked for, and when), then `frames` (requests and answers as
bytes, by pymodbus).  May import the transports beside it and what lies below them.
"""
