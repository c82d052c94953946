"""Kept until the commands name the file that it moved to."""

from checkwatch.answers.measured import read_measures as read_measures
