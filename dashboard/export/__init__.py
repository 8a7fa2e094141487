"""Files made from a session: the report, CSV, Parquet.

Read `report_html` (the whole report) with `report_tables` (the tables of the report; their columns
are in `dashboard/text/table_rows.py`) and `event_room` (the events that there is room for), then `csv_parquet` and `output_file`.  May import `figures`
and what lies below it.
"""
