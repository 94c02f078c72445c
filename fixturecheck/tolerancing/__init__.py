"""Face errors within tolerance zones, pure numbers: zones, samples, critical regions."""
