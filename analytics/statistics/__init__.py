"""Numbers -> what a photographer may believe: no SQL, files, charts, printing or clock here.

Sessions, not frames, are the unit of evidence: frames come in bursts, bursts in sessions; neither is independent.
"""
