"""The whole job: one part from its blank to finished, by operations in order."""
