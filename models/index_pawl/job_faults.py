"""The job of the pawl with faults: a seat cut away before it is used, and a burr under the last seating."""

from route import faulty_job

job = faulty_job()
