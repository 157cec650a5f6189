// Holds a manifest to the schemas that Kubernetes publishes: node manifest.mjs SCHEMAS MANIFEST, where SCHEMAS is an
// OpenAPI document with the kind of the manifest. As the strict server does, it knows no key that the schema does not.
import { readFileSync } from "node:fs";
import Ajv from "ajv";
import { parse } from "yaml";

const [, , document, file] = process.argv;
const schemas = JSON.parse(readFileSync(document, "utf8")).components.schemas;

// closed refuses unknown keys, drops what belongs to OpenAPI alone and keeps references.
function closed(node) {
  if (Array.isArray(node)) return node.map(closed);
  if (node === null || typeof node !== "object") return node;
  const out = {};
  for (const [key, value] of Object.entries(node)) {
    if (key.startsWith("x-kubernetes") || key === "description" || key === "format" || key === "default") continue;
    out[key] = key === "properties"
      ? Object.fromEntries(Object.entries(value).map(([name, of]) => [name, closed(of)]))
      : closed(value);
  }
  if (out.properties && !("additionalProperties" in out)) out.additionalProperties = false;
  return out;
}

const manifest = parse(readFileSync(file, "utf8"));
const [group, version] = manifest.apiVersion.split("/");
const kind = Object.keys(schemas).find((name) =>
  (schemas[name]["x-kubernetes-group-version-kind"] ?? []).some((k) =>
    k.group === group && k.version === version && k.kind === manifest.kind && name.endsWith("." + manifest.kind)));
if (!kind) throw new Error(`no schema of ${manifest.apiVersion} ${manifest.kind}`);

const ajv = new Ajv({ allErrors: true, strict: false });
ajv.addSchema({ $id: "document", components: { schemas: closed(schemas) } });
const valid = ajv.compile({ $ref: `document#/components/schemas/${kind}` });
if (!valid(manifest)) {
  for (const e of valid.errors) {
    console.error(`${file}: ${e.instancePath || "/"} ${e.message} ${e.params.additionalProperty ?? ""}`);
  }
  process.exit(1);
}
console.log(`${file} is a ${kind}`);
