"""Rules → limits → alarms, on data time and pure: replay raises exactly what the service raised."""
