"""Data into words: the one place that says how a motion, a range of forces, a factor or a seat is written.

Solvers return numbers and enums. A sentence is made here when it is shown. Nothing reads one.
"""
