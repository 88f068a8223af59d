"""Structure: roles, supplies, checks. A package, so that other tests may import its random topologies."""
