"""What stands on the bench: the amplifier file, its checks, and the frozen data types."""
