// Runs a file in MicroPython, the interpreter built for WebAssembly, with every file
// of the present folder at hand: node micropython.mjs MICROPYTHON.mjs FILE.py

import fs from "node:fs";
import { pathToFileURL } from "node:url";

const [interpreter, file] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(interpreter));
const micropython = await loadMicroPython({
    heapsize: 16 * 1024 * 1024,
    linebuffer: true,
    stdout: (line) => fs.writeSync(1, line + "\n"),
    stderr: (line) => fs.writeSync(2, line + "\n"),
});
for (const name of fs.readdirSync(".")) {
    micropython.FS.writeFile(name, fs.readFileSync(name));
}
micropython.runPython(fs.readFileSync(file, "utf8"));
