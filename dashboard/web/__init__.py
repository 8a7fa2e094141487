"""The web server without any page: gate, listener, connections, sharing, QR picture.

Read `gate`.  Imports no page.
"""
