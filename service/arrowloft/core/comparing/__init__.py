"""Set-ups side by side: many flown at once, what each does, and where they part from one."""
