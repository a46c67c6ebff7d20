"""Polars in open file formats that other software reads: a described CSV, Parquet, netCDF and Signal K."""
