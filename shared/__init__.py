"""The words every part of ribangle speaks: angles, planes, uncertain quantities, the job, the reading, files.

Imports nothing from the other packages.
"""
