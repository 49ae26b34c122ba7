"""From a colony to the work it takes: plans, calendars, labels and checklists."""
