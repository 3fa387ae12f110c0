"""The daemon: reads loggers, keeps the journal, raises alarms, tells people, for weeks without attention."""
