"""F6: the desk, a page on this machine where a job is written and a plan is tried by hand; it calls use cases of ``api``."""
