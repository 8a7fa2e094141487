"""Files: the report, CSV and Parquet of a session, and sheets for the crew.

Read `report_html` (the whole report) with `report_tables` (the tables of the report; their columns
are in `dashboard/text/table_rows.py`) `event_room` (the events that there is room for) and
`notes_file` (what was written after the haul), then `csv_parquet` and `output_file`; of a rig `crew_card`,
of a conversion `conversion_html`.  May import `conversion`, `figures` and what lies below it.
"""
