"""Tallies → the tables of result.*, unsuppressed, for all sites and for each."""

from pipeline.results.building import build_results, refresh_results
from pipeline.results.prevalence import reported_bandings

__all__ = ["build_results", "refresh_results", "reported_bandings"]
