"""Trace files of profilometers: text, worksheets and XML as instruments write them → x and z in metres."""
