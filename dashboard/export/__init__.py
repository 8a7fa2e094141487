"""Files: the report, CSV and Parquet of a session, and sheets for the crew.

Read `report_html` (the whole report) with `report_tables` (the tables of the report; their columns
are in `dashboard/text/table_rows.py`) and `event_room` (the events that there is room for), then `csv_parquet` and `output_file`; of a rig `crew_card`,
of a conversion `conversion_html`.  May import `conversion`, `figures` and what lies below it.
"""
