"""The data looked at before anything is computed: what is doubtful, why, and how it is settled.

A wrong number in the data gives a wrong "clear". Each module looks at one kind of data and yields `Doubt`s. A doubt is
of a `Kind`, which says once what raises it, from which threshold on, and what to do (docs/doubts.md is made of them).
"""
