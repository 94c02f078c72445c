"""The sizes of a part, between its faces, and what becomes of them when it is hardened."""
