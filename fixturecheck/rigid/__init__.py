"""Rigid-body kinematics, pure numbers: poses, small motions, freedoms, location."""
