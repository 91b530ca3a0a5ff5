"""What the tool is asked to do, as a function of time. The front door is `build.build_plan`.

A path comes from `patterns`, or from a file by `tokens`, `follow` and `program`, as `segments`. `timing` leads it, a chunk
at a time, through `joining`, `axes` and `blend` to a speed planner: `lookahead` with `profile`, or `jerk` with
`ramps`. `stretches` cuts the timed path for the simulator, `sampling` works out points of it under `shapers`; `legs` and
`rounding` say what came of it. `plan` holds the records that other rooms read.
"""
