"""Tables, charts, sheets, workbooks and calendars: how answers leave the program."""
