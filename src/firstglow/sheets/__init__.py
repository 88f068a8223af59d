"""Printed sheets and drawings."""
