"""The table in work as a surface in space; `view.SurfaceView` is what the window places."""
