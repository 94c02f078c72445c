"""A first set-up from nothing but a drawn part."""
