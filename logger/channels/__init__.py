"""What is connected: channels, the sensors file, and the tables of line formats and port schemes.

Read `channel` (one channel, from reading to value), then `channel_keys` (every key of the
sensors file, declared once) and `sensors_file` (the TOML, interface section 2); `framing` reads how a serial line carries a character, `asking` how a device is asked,
`modbus_registers` which registers of which device hold a number,
`counter_modulus` follows a counter that starts again, `device_clock` a device's own time.
A new line format puts its keys into `line_formats`, a new transport its line into `port_schemes`.
May import `calibration` and what lies below it.
"""
