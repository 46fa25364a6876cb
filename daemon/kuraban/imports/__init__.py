"""Old seasons out of tables. Enter: how a table's cells become readings and entries of the past."""
