"""Handing a letter over: to a mail server, a file, a command, or a service."""
