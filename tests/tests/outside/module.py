"""Has an exported module answer requests, one line each.

Runs alike in MicroPython and Python 3. Run by tests/tests/outside/micropython.rs,
which puts this file, the modules and `requests.txt` into one folder.
"""


def number(text):
    return None if text == "-" else int(text)


def answers():
    module = pump = None
    with open("requests.txt") as requests:
        for line in requests:
            words = line.split()
            what = words[0]
            if what == "import":
                module = __import__(words[1])
                yield "True" if module.is_sound() else "False"
            elif what == "read":
                temperature = number(words[3])
                pairs = [
                    "%d %d"
                    % (
                        module.theta_v_e4(count, temperature),
                        module.uncertainty_e4(count, temperature),
                    )
                    for count in range(int(words[1]), int(words[2]))
                ]
                yield ",".join(pairs)
            elif what == "missing":
                yield "%d" % module.theta_v_e4(None, number(words[1]))
            elif what == "pump":
                try:
                    pump = module.Pump(int(words[1]))
                    yield "off"
                except ValueError as error:
                    yield str(error)
            elif what == "step":
                on = pump.step(int(words[1]), int(words[2]), number(words[3]))
                yield "%s %d" % ("on" if on else "off", pump.answer)
            elif what == "image":
                # A table of no bytes is written as a dash.
                digits = "" if words[1] == "-" else words[1]
                pairs = [digits[i : i + 2] for i in range(0, len(digits), 2)]
                module.TABLE = bytes([int(pair, 16) for pair in pairs])
                yield "True" if module.is_sound() else "False"


for answer in answers():
    print(answer)
