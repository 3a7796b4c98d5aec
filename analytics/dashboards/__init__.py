"""The pages as a Datasette plugin, for one person on this machine.

`versions` holds every line that knows a version of Datasette; `access` says who may enter; `plugin` has the routes;
`bundle` makes the chart library once. Nothing here is reached without the link that `thirdstop serve` prints.
"""
