"""Files made of a session: the report, CSV, Parquet.

Read `report_html`.  May import `figures` and what lies below it.
"""
