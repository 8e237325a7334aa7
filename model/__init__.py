"""The line and its arithmetic: knows no screen, no web server and, outside ``store``, no SQL."""
