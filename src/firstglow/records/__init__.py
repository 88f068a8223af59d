"""What was read, decided and changed, one record after another: kept, sealed, never lost."""
