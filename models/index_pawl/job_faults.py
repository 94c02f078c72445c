"""The job of the pawl with four faults: a lost stop, a burr, a drill on a slope, a touch-off on a round."""

from route import faulty_job

job = faulty_job()
