"""The web server without any page: gate, listener, connections, sharing, QR picture.

Read `gate` (checks every request), `dash_page` (a Dash application behind it) with `touches` (what was touched on its page), `sharing` (access codes and cookies), then `listener` and
`connection_limits`; `assets` serves scripts and styles, `typescript` declares what pages are sent, `qr`
draws a link.  Imports `text` and no page.
"""
