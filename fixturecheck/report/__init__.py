"""Shows a finished result; computes nothing."""
