// Runs one script on the WebAssembly build of MicroPython and ends with the script's exit code.
// Arguments: micropython.mjs, folders joined by the system's path delimiter, script, its arguments.
import { readdirSync, readFileSync } from "node:fs";
import { basename, delimiter, join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

const [build, folders, script, ...args] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(resolve(build)).href);
const micropython = await loadMicroPython({
  stdout: (line) => process.stdout.write(line + "\n"),
  stderr: (line) => process.stderr.write(line + "\n"),
});

// A folder of its own for each, so that the order of the search stays the caller's.
const places = folders.split(delimiter).map((folder, index) => {
  const place = `/path${index}`;
  micropython.FS.mkdir(place);
  for (const name of readdirSync(folder).filter((name) => name.endsWith(".py"))) {
    micropython.FS.writeFile(`${place}/${name}`, readFileSync(join(folder, name)));
  }
  return place;
});
micropython.FS.writeFile("/script.py", readFileSync(script));

try {
  micropython.runPython(`
import sys
sys.path[:] = ${JSON.stringify(places)}
sys.argv[:] = ${JSON.stringify([basename(script), ...args])}
exit_code = 0
try:
    exec(compile(open("/script.py").read(), ${JSON.stringify(basename(script))}, "exec"))
except SystemExit as error:
    exit_code = error.args[0] if error.args else 0
`);
  process.exitCode = micropython.globals.get("exit_code");
} catch (error) {
  process.stderr.write(error.message + "\n");
  process.exitCode = 1;
}
