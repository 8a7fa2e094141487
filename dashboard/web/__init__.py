"""The web server without any page: gate, listener, connections, sharing, QR picture.

Read `gate` (checks every request), `sharing` (access codes and cookies), then `listener` and
`connection_limits`; `assets` serves scripts and styles, `typescript` declares what pages are sent, `qr`
draws a link.  Imports no page and nothing else of this room.
"""
