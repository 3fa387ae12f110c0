"""Plain data that every other room speaks: samples, quantities, settings, results, errors."""
