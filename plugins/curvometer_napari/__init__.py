"""The viewer plugin: open a radiograph, set its scale, trace a canal and read its curvature.

`case` holds what a person did as frozen values, `session` what follows from it; neither knows the viewer. `layers` draws
a session, `pointer` turns mouse and keys into session calls, and `panel` has one box for each step of the work. All
measuring is done by the names that `curvometer` exports.
"""
