"""Kill the service and its database again and again while people work; then nothing may be lost.

    python -m tests.storms --kills 60

Eight programs sell, deliver, bill, get paid, credit, bottle, count, bring in lists and ask for
backups, through the API, each act with its key. Meanwhile the service is killed at random moments
(SIGKILL, with all it started), and on PostgreSQL the database server too. Whoever gets no answer
sends the same act again. In the end every act that was answered must be in the books exactly once,
numbers must have no gap, and the books must prove.
"""
