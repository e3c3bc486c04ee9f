"""What another interpreter runs is no test of this one."""

collect_ignore = ["open_findings.py", "open_project.py"]
