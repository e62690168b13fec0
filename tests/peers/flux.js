// Reads queries as JSON, an object of names and texts, from standard input and has
// the Flux library itself read each: its grammar, its names, arguments and types.
// Writes an object of names and what is wrong with them.

const { parse, is_valid_flux: isValid } = require("@influxdata/flux-lsp-node");

/** Every error in the tree of a query, with its place. */
function errorsIn(node) {
  if (node === null || typeof node !== "object") return [];
  const here = (node.errors || []).map((error) => {
    const { line, column } = node.location.start;
    return `${line}:${column}: ${error.msg}`;
  });
  const inner = Object.entries(node).filter(([key]) => key !== "errors" && key !== "location");
  return here.concat(inner.flatMap(([, below]) => errorsIn(below)));
}

let text = "";
process.stdin.on("data", (more) => (text += more));
process.stdin.on("end", () => {
  const wrong = {};
  for (const [name, query] of Object.entries(JSON.parse(text))) {
    const errors = errorsIn(parse(query));
    if (errors.length > 0) wrong[name] = errors.join("; ");
    else if (!isValid(query)) wrong[name] = "a name, an argument or a type that Flux does not have there";
  }
  process.stdout.write(JSON.stringify(wrong));
});
