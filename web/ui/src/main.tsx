import { render } from 'preact'
import { App } from './app'
import { follow, onLeave } from './route'
import { store, wear } from './state'

wear()
follow()
onLeave(() => store.left())
store.start()
render(<App />, document.getElementById('app')!)
