// Copies the page itself beside its script and style.
import {copyFileSync} from 'node:fs';
copyFileSync('src/index.html', '../dist/index.html');
