// Python with words of 32 bits, as on a board: MicroPython for WebAssembly, run by node.
//
//     node micropython_32.mjs MICROPYTHON.mjs FOLDER PIECE...
//
// FOLDER is copied to /board, then one piece of Python after the other is run. The collector works only between two
// calls from outside: it is called there, so that a piece begins with a heap that was swept.
import { existsSync, readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

const HEAP_BYTES = 4 << 20;
const [module, folder, ...pieces] = process.argv.slice(2);
if (!existsSync(module)) {
  console.error(`there is no ${module}: name the folder of the npm package @micropython/micropython-webassembly-pyscript`);
  process.exit(1);
}
const { loadMicroPython } = await import(pathToFileURL(module).href);
const python = await loadMicroPython({ heapsize: HEAP_BYTES, stdout: (line) => console.log(line) });

function copy(from, to) {
  python.FS.mkdir(to);
  for (const entry of readdirSync(from, { withFileTypes: true })) {
    if (entry.isDirectory()) copy(join(from, entry.name), `${to}/${entry.name}`);
    else python.FS.writeFile(`${to}/${entry.name}`, readFileSync(join(from, entry.name)));
  }
}

copy(folder, "/board");
for (const piece of ["import gc, sys; sys.path.insert(0, '/board')", ...pieces]) {
  python.runPython(piece);
  python.runPython("gc.collect()");
}
