"""Trace files of profilometers: text as instruments write it → x and z in metres, with what stands above them."""
