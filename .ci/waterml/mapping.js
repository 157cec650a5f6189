// Reads a WaterML 2.0 file by the mapping that ogc-schemas makes of the standard's schemas, writes it again, and fails
// where an element of it is lost on the way: the standard knows no such element there.
const { Jsonix } = require('jsonix');
const ogc = require('ogc-schemas');
const { XLink_1_0 } = require('w3c-schemas');

const context = new Jsonix.Context([XLink_1_0, ogc.GML_3_2_1, ogc.ISO19139_GMD_20070417, ogc.ISO19139_GCO_20070417,
	ogc.ISO19139_GSS_20070417, ogc.ISO19139_GTS_20070417, ogc.ISO19139_GSR_20070417, ogc.OM_2_0, ogc.Sampling_2_0,
	ogc.SamplingSpatial_2_0, ogc.SWE_2_0, ogc.WaterML_2_0]);
const text = require('fs').readFileSync(process.argv[2], 'utf8');
const again = context.createMarshaller().marshalString(context.createUnmarshaller().unmarshalString(text));
function count(xml) {
	const found = {};
	for (const [, name] of xml.matchAll(/<(?:[\w-]+:)?([A-Za-z_]\w*)[\s>\/]/g)) found[name] = (found[name] || 0) + 1;
	return found;
}
const [before, after] = [count(text), count(again)];
const lost = Object.keys(before).filter(name => before[name] !== after[name]);
console.log(`${Object.keys(before).length} elements, lost: ${lost.join(', ') || 'none'}`);
process.exit(lost.length ? 1 : 0);
