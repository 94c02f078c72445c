"""Where parts come to rest: footing, settling, location, order, tolerance."""
