# Messages of the report, English. Numbers and quantities come in ready for the page.

number-decimal = .
number-group = ,

unit-cubic = m³/m³
unit-percent = vol %
unit-millimetre = mm per 10 cm
unit-inch = in/ft
unit-litre = L
unit-gallon = gal
unit-inches = in

page-title = Calibration report
page-description = When to start and stop the pump for each probe, how sure that is, and the evidence behind it.
skip = Skip to the verdict
made = From { $cores } oven-dried cores and { $readings } readings, the last on { $last }.

switches = How to show it
switch-water = Water content
switch-measures = Other measures
switch-soils = Soil
measures-metric = metric
measures-us = US
soils-all = all
only-soil = Of the soils, only { $soil } was chosen for this print.
inch-spelled = in/ft: inches of water per foot of soil.
quoted-metric = Sentences here are quoted from the commands, which write metric units: 25.4 mm are 1 in, 0.10 m³/m³ is 1.2 in/ft, 1 °C of change is 1.8 °F, and 19 °C is 66 °F.

verdict-all = { $all ->
    [one] This probe may steer a pump.
   *[other] All { $all } probes may steer a pump.
  }
verdict-some = { $ready } of { $all } probes may steer a pump; the others must not yet.
verdict-none = { $all ->
    [one] This probe must not steer a pump yet.
   *[other] None of these { $all } probes may steer a pump yet.
  }
verdict-calibrated = { $all ->
    [one] The probe is calibrated.
   *[other] All { $all } probes are calibrated.
  }
verdict-some-calibrated = { $calibrated } of { $all } probes are calibrated.

story-no-pump = There are no set points yet: write a [controller] with area, flow and crop into site.toml.
story-no-points = Set points could not be placed: { $what } What to do: { $mend }.
story-sure-one = One reading is right to within { $sure }, 19 times in 20.
story-sure = One reading is right to within ± { $low } to { $high }, depending on the soil, 19 times in 20.
story-limit-tables = What is known least is not the probes but how much water each soil holds: published tables know a texture, not your bed. Measure field capacity on the beds, and start and stop become much surer.
story-limit-soil = What is known least is how much water each soil holds, though it was measured.
story-limit-calibration = What is known least is the calibration itself: more cores beside each probe make start and stop surer.
story-limit-crop = What is known least is how dry the crop may become: ask for a figure of this variety and stage.
story-temperature = Not corrected for soil temperature: { $soils }. Its counts hold only near the soil temperature of its cores.
story-stage = Stage of growth: { $stage }.
story-warnings = { $count ->
    [one] There is one thing { $link }.
   *[other] There are { $count } things { $link }.
  }
advice-link = to look at before relying on it

mark-ready = ready
mark-calibrated = calibrated
mark-not-ready = not ready
probe-name = Probe { $probe }
card-start = start at
card-stop = stop at
card-water = { $volume } each time, { $depth } to the roots
card-water-cut = { $volume } would bring { $depth } to the roots, but the longest run stops the pump before
card-drifted = the calibration no longer holds
card-temperature = only near the soil temperature of its cores
card-calibrated = calibrated; no set points
card-refused = no calibration: see why

when-title = When to water
point-start = Start when the count rises to { $count }
point-stop = Stop when it falls to { $count }
point-start-falling = Start when the count falls to { $count }
point-stop-rising = Stop when it rises to { $count }
point-temperature = Both counts hold with the soil at { $temperature }. Bring a reading to that temperature before comparing; the controller files do it by themselves.
reserve-caption = What the soil holds, from bone dry on the left to full on the right. Bars under the marks: where the right place for each may lie, 19 times in 20.

fact-water = Each irrigation
fact-water-value = { $volume }, about { $time } of pumping: { $depth } of water over { $roots } of roots
fact-water-cut = { $volume }, about { $time } of pumping, would bring { $depth } of water over { $roots } of roots; the longest run stops the pump before that, so the bed is not filled
fact-left = Water left at the start
fact-left-value = { $left } of what the crop can draw on; likely { $least } to { $most }{ $spread }
fact-left-tables = : so wide because field capacity was not measured
fact-sure = How sure
fact-sure-value = { $sure } for one reading; the start itself { $refill }, soil and crop counted in
fact-risk = Risk of a bed too dry
fact-risk-value = { $risk } while the pump waits; { $at } just as it starts, where about half is by construction: start is set at the most the crop may be dried, and may as well lie on either side of it
fact-no-answer = No answer below
fact-no-answer-value = { $driest }, the driest core: in drier soil the controller keeps the pump off
fact-recheck = Check again by
fact-recheck-value = { $day }; last reading { $made }

sure-title = How sure, and what would help
help = What would help most is { $help }: the risk of a bed too dry would fall from { $now } to { $left }.
help-field-capacity = field capacity measured on this bed
help-wilting-point = a wilting point measured in a laboratory
help-calibration = more cores beside this probe
help-crop = a better figure for how dry this crop may become
budget-start = The start of the pump:
budget-reading = One reading at { $count } counts:
budget-small = Less than 1 % each: { $sources }.
budget-note = Each bar is a source's share of the squared uncertainty. u is a standard uncertainty; the ± after each title covers 95 %.

column-source = source
column-u = u
column-share = share
column-core = core
column-count = count
column-water = water content
column-oven = oven says
column-off = off the curve
column-draws = 95 % of draws
column-curve = curve
column-unseen = error at unseen cores
column-verdict = verdict
column-capacity = field capacity
column-wilting = wilting point
column-available = available
column-rule = rule
column-starts = starts a day
column-dry = hours too dry
column-drained = lost below roots
column-relay = relay years
column-file = file

evidence-title = The evidence
curve-caption = Point at a core, or reach it with the arrow keys, to see which it is.
residuals-caption = The same cores, as far as each lies off the curve.
watch-title = What to watch
readings-title = What one reading says
cores-title = Every core
curves-title = The curves that were compared
curve-asked = asked for

soil-title = The soil, source by source
soil-class = Texture class: { $class }.
soil-caption = What each source says
row-taken = taken
row-within = ± (95 %)
soil-reason = Taken: { $reason }.
retention-caption = How hard the soil holds on to its water as it dries.
sources-title = The sources of soil and crop figures
sources-note = None was read itself; a second copy is a public transcription.
source-checked = Seen in a second copy: { $checked }. From memory, not checked: { $memory }.

seasons-title = A season with each rule
season-caption = Two weeks of a simulated season: one threshold, then refill and stop.
seasons-caption = { $seasons } simulated seasons of { $days } days
season-water = They pump { $pumped } { $more } a season, and { $drained } { $drains } drain; the bed is { $water } { $wetter } on average.
season-drains = Where more drains, stop may lie too near what the soil can hold, or the probe may see the water late: measure field capacity on this bed and the lag of the probe (probe_lag_s) before relying on stop.
more = more
less = less
wetter = wetter
drier = drier
seasons-note = One threshold: { $threshold } counts, { $water } ({ $from }). Weather: { $weather }.

refused-title = No calibration
refused-cores = Its cores
beds-title = { $count ->
    [one] The bed
   *[other] The beds
  }

batch-title = Can one curve serve all probes?
batch-soil = { $probes } probes in { $soil }
batch-one-curve = Yes: one curve serves all { $probes } probes. A reading is then within { $target } of the core 95 times in a hundred.
batch-two-media = { $why }. Read each in two media and bring its counts onto one scale: one curve then serves all { $probes } probes within { $target }.
batch-own-cores = { $why }: to be within { $target }, give each probe a calibration of its own.
batch-not = Not as they are
batch-not-surely = Not surely as they are
batch-scatter = No, and cores of its own do not bring a probe within { $target } either: cores of this soil scatter too much about any curve.
batch-unsure = No, and cores of its own do not bring a probe within { $target } either: the figures are too unsure.
batch-open = Not settled: nothing is shown to be within { $target }, though the figures do not rule it out.
batch-by-two-media = Two-point normalisation of each probe
batch-by-own-cores = Calibrating every probe
batch-buys = { $way } buys { $gain } ({ $range }) over one shared curve: { $depth } of water ({ $least } to { $most }) in { $roots } of roots.
batch-buys-nothing = { $way } buys nothing over one shared curve.
batch-standing-out = Standing out: { $probes }. Look at plug, cable and blades; do not let it share the curve.
batch-without = All figures here hold what stands out; without it, one curve gives { $sure } ({ $range }). Within the target: { $judged }.
batches-title = Is one batch like another?
batches-more = And { $more } more pairs of batches, which the batch command tells.
batches-without = Probes that stand out are left out of these comparisons.
pair-refused = { $a } and { $b } cannot be compared: { $reason }.
pair-alike = { $a } and { $b } are alike: their means differ by less than { $margin }.
pair-reads = { $wetter } reads { $difference } wetter than { $drier } ({ $range }, 90 % interval).
pair-within = That it is different is sure; that it is less than { $margin } as well.
pair-beyond = That is surely more than { $margin }: do not let them share a curve.
pair-open = Whether that is more than { $margin } is not settled.
pair-not-settled = Neither shown to differ nor to be alike within { $margin }: { $a } and { $b }.
pair-probes = About { $probes } probes of each would settle it.
next-title = The next probe out of the box, read by the shared curve
next-note = 95 in a hundred further probes of this kind are off by no more than this, with 95 % confidence; + reads too wet.
next-alike = The next probe out of the box reads no further off than chance explains: these probes do not differ.
next-refused = How far the next probe out of the box may be off cannot be said: { $reason }.
range = { $low } to { $high }
column-where = in soil
column-from = from
column-to = to
column-without = without what stands out
batch-caption = How much wetter or drier each probe reads than one curve for all says.
batch-ways = What each way of calibrating gives
column-way = way
column-target = within { $target }?
column-work = work for one more
judged-within = yes
judged-beyond = no
judged-open = not settled

advice-title = Before you rely on it
advice-none = Nothing was noticed that needs your attention.
why = Why it matters: { $why }.
to-do = What to do: { $advice }.

care-title = Take care
care-pump = Pump, water and mains
care-oven = The drying oven

provenance-title = Where this comes from
provenance = Made by { $program } with { $command }; where chance is used, from seed { $seed } and fixed ones, so that the same files give the same page.
provenance-files = The files it was made from
about-charts = Charts show water content in m³/m³: 0.10 is 10 vol %, 10 mm in 10 cm of soil or 1.2 in per ft.
