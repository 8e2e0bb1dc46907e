from pipeline.seal.command import main

raise SystemExit(main())
