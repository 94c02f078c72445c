"""Index pawls from bar to hardened part: seven operations, each checked in the state that the pawl is in."""

from route import pawl_job

job = pawl_job()
