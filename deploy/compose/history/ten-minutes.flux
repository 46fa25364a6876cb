// Every hour: count, least, greatest, mean and last of each ten minutes. It goes back two days, so
// that what the watch brings late is in them; written twice, a point is the same point. It begins and
// ends at whole ten minutes, whenever it is run, so that no part of one is written over the whole.
// For a longer way back run it once by hand with another start.

import "date"

option task = {name: "kuraban-ten-minutes", every: 1h, offset: 7m}

start = date.truncate(t: -2d, unit: 10m)
stop = date.truncate(t: now(), unit: 10m)

readings =
    from(bucket: "kuraban")
        |> range(start: start, stop: stop)
        |> filter(fn: (r) => r._measurement == "reading" and r._field == "value")

toShelf = (tables=<-, field) =>
    tables
        |> set(key: "_field", value: field)
        |> set(key: "_measurement", value: "reading")
        |> to(bucket: "kuraban-10m")

readings |> aggregateWindow(every: 10m, fn: count, createEmpty: false) |> toShelf(field: "count")
readings |> aggregateWindow(every: 10m, fn: min, createEmpty: false) |> toShelf(field: "least")
readings |> aggregateWindow(every: 10m, fn: max, createEmpty: false) |> toShelf(field: "greatest")
readings |> aggregateWindow(every: 10m, fn: mean, createEmpty: false) |> toShelf(field: "mean")
readings |> aggregateWindow(every: 10m, fn: last, createEmpty: false) |> toShelf(field: "last")
