"""Rig files that are refused: each with what its one line holds, and which of them only the model can refuse."""

from __future__ import annotations

HEAD = "anchor_to_load_m = 12.0\n"
ROPE = '[[rope]]\nname = "main"\npath = [ %s ]\n'
Z = '{ tie = "load" }, { grab = "G1", at_m = 9 }, { pulley = "A1", on = "anchor" }, { pulley = "T1", on = "G1" }, { haul = "team" }'

# name -> (text of the file, what its one line holds)
FAULTY: dict[str, tuple[str, list[str]]] = {
    "no TOML": ("x = [\ny", ["not valid TOML", "line 2"]),
    "an empty file": ("", ["anchor_to_load_m", "missing"]),
    "no rope": (HEAD, ["rope", "there is no rope"]),
    "a misspelt key at the top": ("anchor_to_laod_m = 12.0\n" + ROPE % Z, ['unknown key "anchor_to_laod_m"', "write anchor_to_load_m"]),
    "a misspelt key of a station": (HEAD + ROPE % Z.replace("at_m", "at_n"), ['unknown key "at_n"', "station 2", "write at_m"]),
    "a key that is like another": (HEAD + "titel = 'x'\n" + ROPE % Z, ['unknown key "titel"', "write title"]),
    "a misspelt key of a table": (HEAD + "[defaults]\npully_efficiency = 0.9\n" + ROPE % Z, ["pully_efficiency", "write pulley_efficiency"]),
    "a share above 1": (HEAD + "[defaults]\npulley_efficiency = 1.2\n" + ROPE % Z, ["defaults: pulley_efficiency", "out of range"]),
    "a number that is none": (HEAD + "[defaults]\npulley_efficiency = nan\n" + ROPE % Z, ["not a finite number"]),
    "a table of a pulley that is not there": (HEAD + "[pulley.A9]\nefficiency = 0.9\n" + ROPE % Z, ["pulley.A9", "no pulley of this name", "[pulley.A1]"]),
    "a misspelt key of a grab": (HEAD + "[grab.G1]\nslip_at_kN = 4\n" + ROPE % Z, ["slip_at_kN", "slips_at_kN"]),
    "a misspelt choice": (HEAD + "[load]\nkind = 'hangin'\n" + ROPE % Z, ['write "hanging"']),
    "a mass without a kind": (HEAD + "[load]\nmass_kg = 100\n" + ROPE % Z, ["load: kind", "missing"]),
    "a mass beside a resistance": (HEAD + "[load]\nresistance_N = 100\nmass_kg = 100\n" + ROPE % Z, ["mass_kg", "beside resistance_N"]),
    "gear that carries nothing that is there": (HEAD + "[gear.K]\ncarries = ['A2']\n" + ROPE % Z, ["gear.K", '"A2"', '"A1"']),
    "gear that carries itself": (HEAD + "[gear.K]\ncarries = ['K']\n" + ROPE % Z, ["carries itself"]),
    "a name twice": (HEAD + ROPE % Z.replace('"T1"', '"A1"'), ['"A1"', "already names a pulley"]),
    "a reserved name": (HEAD + ROPE % Z.replace('"T1"', '"load"'), ["reserved"]),
    "a pulley on no body": (HEAD + ROPE % Z.replace('on = "G1"', 'on = "G7"'), ["station 4", 'no body "G7"', '"G1"']),
    "a pulley on a pulley": (HEAD + ROPE % Z.replace('on = "G1"', 'on = "A1"'), ['"A1" is a pulley, not a body']),
    "a grab beyond the load": (HEAD + ROPE % Z.replace("at_m = 9", "at_m = 13"), ["G1", "outside its own strand"]),
    "a grab too near to move": (HEAD + ROPE % Z.replace("at_m = 9", "at_m = 0.2"), ["cannot move", "0.2 m apart"]),
    "a grab without its place": (HEAD + ROPE % Z.replace(', at_m = 9', ""), ["station 2", "at_m", "missing"]),
    "a misspelt station": (HEAD + ROPE % Z.replace("grab", "grap"), ["station 2", '"grap"', '"grab"']),
    "a station in other words": (HEAD + ROPE % Z.replace("grab", "prusik"), ["station 2", '"prusik"', "one of tie, grab"]),
    "a path that ends at a pulley": (HEAD + ROPE % Z.replace(', { haul = "team" }', ""), ["cannot end at a pulley"]),
    "a tie behind the haul": (HEAD + ROPE % (Z + ', { tie = "load" }'), ["haul"]),
    "a further anchor that nothing uses": (HEAD + "[further_anchor.P]\nat_m = 3\n" + ROPE % Z, ["P", "unloaded"]),
    "a plate that nothing uses": (HEAD + "[plate.B]\nat_m = 3\n" + ROPE % Z, ["B", "unloaded"]),
    "ropes that are a number": (HEAD + "rope = 7\n", ["rope", "there is no rope"]),
    "pulleys that are a number": (HEAD + "pulley = 7\n" + ROPE % Z, ["pulley", "[pulley.NAME]"]),
    "stations that are numbers": (HEAD + ROPE % "7, 8", ["must be a table"]),
    "a misspelt knot": (HEAD + ROPE % Z.replace('"load" }', '"load", knot = "bowlin" }'),
     ["station 1: knot", '"bowlin"', 'write "bowline"', "figure-eight", "tensionless"]),
    "an unknown knot": (HEAD + ROPE % Z.replace('"load" }', '"load", knot = "reef" }'), ['"reef"', "table of knots; knots are figure-eight"]),
    "a knot beside its strength": (HEAD + ROPE % Z.replace('"load" }', '"load", knot = "bowline", strength = 0.5 }'), ["knot", "cannot stand beside strength"]),
    "a rope's strength in N": (HEAD + (ROPE % Z).replace("path", "mbs_kN = 30000\npath"), ["rope 1: mbs_kN", "did you mean N, not kN? write mbs_kN = 30"]),
    "a working load limit in N": (HEAD + "[pulley.A1]\nwll_kN = 8000\n" + ROPE % Z, ["pulley.A1: wll_kN", "did you mean N, not kN? write wll_kN = 8"]),
    "a slip force in N": (HEAD + "[grab.G1]\nslips_at_kN = 4000\n" + ROPE % Z, ["grab.G1: slips_at_kN", "write slips_at_kN = 4"]),
    "an uncertainty of no slip force": (HEAD + "[grab.G1]\nslips_at_u_kN = 1\n" + ROPE % Z, ["slips_at_u_kN", "needs slips_at_kN"]),
    "a slip force lost in its uncertainty": (HEAD + "[grab.G1]\nslips_at_kN = 0.5\nslips_at_u_kN = 0.3\n" + ROPE % Z, ["slips_at_u_kN", "2 u leaves nothing of 0.5 kN"]),
    "two hauls": (HEAD + ROPE % Z + (ROPE % '{ tie = "load" }, { haul = "crew" }').replace("main", "aux"),
     ["the rig has 2 hauls"]),
    "no haul": (HEAD + ROPE % '{ tie = "load" }, { pulley = "A1", on = "anchor" }, { tie = "load" }', ["haul"]),
    "a path that begins at a pulley": (HEAD + ROPE % Z.replace('{ tie = "load" }, ', "").replace('{ grab = "G1", at_m = 9 }, ', ""), ["cannot end at a pulley"]),
    "a tail that is none": (HEAD + ROPE % (Z + ", { free = false }"), ["free", "slack tail"]),
    "an edge on nothing": (HEAD + ROPE % Z.replace('{ haul', '{ edge = "E1", wrap_deg = 90, friction = 0.3 }, { haul'), ["at_m", "missing"]),
    "an edge in two places": (HEAD + ROPE % Z.replace('{ haul', '{ edge = "E1", at_m = 1, on = "anchor", wrap_deg = 90, friction = 0.3 }, { haul'), ["beside at_m"]),
    "a haul that goes two ways": (HEAD + ROPE % Z.replace('"team"', '"team", on = "load", toward_deg = 90'), ["toward_deg", "beside on"]),
    "a station of two kinds": (HEAD + ROPE % Z.replace('{ grab = "G1"', '{ grab = "G1", capture = "C1"'), ["at once"]),
    "a name with an arrow": (HEAD + ROPE % Z.replace("A1", "A>1"), ['">"']),
    "a blank before a name": (HEAD + ROPE % Z.replace("A1", " A1"), ["blank"]),
    "a long name": (HEAD + ROPE % Z.replace("A1", "A" * 41), ["1 to 40 characters"]),
    "a rope of one station": (HEAD + ROPE % '{ haul = "team" }', ["two stations"]),
    "one length in two units": (HEAD + "anchor_to_load_ft = 39.0\n" + ROPE % Z, ["cannot stand beside anchor_to_load_m"]),
    "a preset beside its values": (HEAD + '[pulley.A1]\npreset = "connector"\nefficiency = 0.5\n' + ROPE % Z, ["efficiency", "beside preset"]),
    "an unknown preset": (HEAD + '[pulley.A1]\npreset = "magic"\n' + ROPE % Z, ["preset", "magic"]),
    "a hitch's preset beside its values": (HEAD + '[grab.G1]\npreset = "klemheist"\nslips_at_kN = 3.0\n' + ROPE % Z, ["slips_at_kN", "beside preset"]),
    "a rope's preset without its strength": (HEAD + (ROPE % Z).replace("path", 'preset = "dynamic"\npath'), ["preset", "needs mbs_kN"]),
    "stretch at no force": (HEAD + (ROPE % Z).replace("path", "stretch_percent = 3.0\npath"), ["stretch"]),
    "footing beside a pull": (HEAD + '[team]\npull_N = 600.0\npeople = 4\nfooting = "good"\n' + ROPE % Z, ["footing", "beside pull_N"]),
    "footing of nobody": (HEAD + '[team]\nfooting = "good"\n' + ROPE % Z, ["people", "missing"]),
    "half a person": (HEAD + '[team]\npeople = 1.5\n' + ROPE % Z, ["people", "whole number"]),
    "an uncertainty of no resistance": (HEAD + "[load]\nresistance_u_N = 10.0\n" + ROPE % Z, ["needs resistance_N"]),
    "an unknown surface": (HEAD + '[load]\nsurface = "lava"\n' + ROPE % Z, ["surface", "lava"]),
    "sand under a sledge": (HEAD + '[load]\nkind = "dragging"\nsurface = "sand"\n' + ROPE % Z, ["rolling load"]),
    "ground under what hangs": (HEAD + '[load]\nkind = "hanging"\nsurface = "sand"\n' + ROPE % Z, ["rolling load"]),
    "a coefficient without a kind": (HEAD + "[load]\nresistance_coefficient = 0.1\n" + ROPE % Z, ["load: kind", "missing"]),
}  # fmt: skip
# words of `support.rigs.words_toml` and further lines: files without a wrong word, of rigs that can't work
UNWORKABLE: dict[str, tuple[str, str]] = {
    "tied fast": ("tie:load tie:anchor | tie:load grab:G@50 pulley:A@anchor pulley:T@G haul", ""),
    "moves the load away": ("tie:load pulley:A@B haul", "[further_anchor.B]\nat_m = 200\n"),
    "a plate that nothing ties": (
        "tie:load pulley:A@anchor pulley:B@P haul", "[plate.P]\nat_m = 50\n"),
    "a grab that carries nothing": ("tie:load grab:G1@50 pulley:A@anchor haul:180", ""),
    "a strand that would push": ("tie:load pulley:A@P haul | tie:P tie:anchor", ""),
    "a load that is not in the haul": (
        "tie:anchor pulley:A@B haul | tie:load tie:C",
        "[further_anchor.B]\nat_m = 20\n[further_anchor.C]\nat_m = 30\n"),
}  # fmt: skip
# those of FAULTY that no JSON Schema can refuse, and why; of UNWORKABLE it can refuse none, because
# whether a rig moves is a matter of its geometry as a whole
OTHERS = "names that refer to each other are no matter of draft 7"
GEOMETRY = "whether bodies can move is a matter of their places"
LAST = "draft 7 can't say what stands last, or how often a station stands in all paths"
ONLY_THE_MODEL: dict[str, str] = {
    "a number that is none": "JSON has no such number, so no schema speaks of it",
    "a table of a pulley that is not there": OTHERS,
    "gear that carries nothing that is there": OTHERS,
    "gear that carries itself": OTHERS,
    "a name twice": OTHERS,
    "a pulley on no body": OTHERS,
    "a pulley on a pulley": OTHERS,
    "a further anchor that nothing uses": OTHERS,
    "a plate that nothing uses": OTHERS,
    "a grab beyond the load": GEOMETRY,
    "a grab too near to move": GEOMETRY,
    "a tie behind the haul": LAST,
    "two hauls": LAST,
    "a slip force lost in its uncertainty": "one number against another is no matter of draft 7",
}
