"""The command line: one thin file per command, no logic of the job.

Takes arguments; gives results on standard output, diagnostics on standard error, and an exit status: 0 clean,
1 the input had errors, 2 could not run. Leaves the work to `api`.
"""
