// Builds the page into ../dist, or into the folder that is named. The same
// sources give the same bytes.
import {copyFileSync, mkdirSync} from 'node:fs';
import {build} from 'esbuild';

const out = process.argv[2] ?? '../dist';
mkdirSync(out, {recursive: true});
await build({
  entryPoints: {page: 'src/main.ts'}, bundle: true, minify: true, target: 'es2022', format: 'esm', legalComments: 'none', outdir: out,
});
await build({entryPoints: ['src/page.css'], minify: true, outdir: out});
copyFileSync('src/index.html', `${out}/index.html`);
