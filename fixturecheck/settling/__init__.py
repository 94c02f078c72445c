"""Where parts really come to rest: solids' candidates joined to the settler, in the trade's words."""
