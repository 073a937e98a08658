"""SQLite, whose writers in one process take turns: first come, first served.

SQLite has one writer at a time, and who finds another one there looks again after a pause that
grows to a tenth of a second. Under load the one who comes by chance at the right moment is first,
and another one waits for seconds. So the threads of a process queue here before they ask SQLite for
its lock; between processes it is SQLite's lock that counts, as ever.
"""
