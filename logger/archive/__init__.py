"""The record on disk: runs of sealed Parquet segments, an open journal, a start record and a stop record."""
