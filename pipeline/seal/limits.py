"""What one received file may be, unless a programme's settings say otherwise. At a site there are none."""

FILE_BYTES = 4_000_000_000  # as it was sent
UNPACKED_BYTES = 4_000_000_000  # of a gzip file, or of all parts of a workbook
ROWS = 20_000_000
COLUMNS = 500
LINE_CHARACTERS = 1 << 20
LONGEST_LINE_CHARACTERS = 1 << 24  # that settings may allow
SETTINGS_BYTES = 1 << 20  # of a profile or a programme's settings
