// Every hour: count, least, greatest, mean and last of each ten minutes. It goes back two days, so
// that what the watch brings late is in them; written twice, a point is the same point. For a longer
// way back run it once by hand with another range.

option task = {name: "kuraban-ten-minutes", every: 1h, offset: 7m}

readings =
    from(bucket: "kuraban")
        |> range(start: -2d)
        |> filter(fn: (r) => r._measurement == "reading" and r._field == "value")

to_shelf = (tables=<-, field) =>
    tables
        |> set(key: "_field", value: field)
        |> set(key: "_measurement", value: "reading")
        |> to(bucket: "kuraban-10m")

readings |> aggregateWindow(every: 10m, fn: count, createEmpty: false) |> to_shelf(field: "count")
readings |> aggregateWindow(every: 10m, fn: min, createEmpty: false) |> to_shelf(field: "least")
readings |> aggregateWindow(every: 10m, fn: max, createEmpty: false) |> to_shelf(field: "greatest")
readings |> aggregateWindow(every: 10m, fn: mean, createEmpty: false) |> to_shelf(field: "mean")
readings |> aggregateWindow(every: 10m, fn: last, createEmpty: false) |> to_shelf(field: "last")
