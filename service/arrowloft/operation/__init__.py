"""What stands around the computations while the service runs; it computes no flight.

Who may ask, how much at once, what is counted, what is logged, how long a reply may be kept.
"""
