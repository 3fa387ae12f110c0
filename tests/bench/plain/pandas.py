"""Stands for pandas, which a plain installation has not: pyarrow imports it wherever it finds it."""

raise ImportError("pandas is for the tests only")
