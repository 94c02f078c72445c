"""What hardening does to a steel, in pure numbers: size, hardness, toughness, surface, its test."""
